"""Points that the standards leave open: each reading of the machine file, and that the report says which was used."""

from math import pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from moves.programs import DEG, HEAD, faults, meaning, reading, same

from hexpost.errors import InputError
from hexpost.machine.language import shorthand
from hexpost.machine.load import DEMONSTRATION, machine_from
from hexpost.machine.wording import Digits

# "Establishing the decimal point" of EIA RS-274-D, as printed in an article of that name: format, text, value
PUBLISHED = [
    ("X+23", "12345", 12.345),
    ("X+24", "123450", 12.345),
    ("X+24", "000100", 0.01),
    ("X+024", "100", 0.01),
    ("X+240", "0001", 0.01),
    # "Exploring different dimension formats in part programming": metric 5.3, inch 4.4, zeros at the end in 4.3
    ("X+53", "00000420", 0.42),
    ("X+053", "420", 0.42),
    ("X+44", "00006250", 0.625),
    ("X+044", "6250", 0.625),
    *((("X+053", text, value) for value, text in ((0.1, "100"), (1, "1000"), (10, "10000"), (1000, "1000000")))),
    *((("X+430", text, value) for value, text in ((0.1, "00001"), (1, "0001"), (10, "001"), (100, "01"), (1000, "1")))),
]


def words(text: str):
    """Return the demonstration machine with a table ``[words]``."""
    return machine_from((DEMONSTRATION.read_text() + "\n[words]\n" + text).encode(), "m.toml")


class TestNumbersWithoutAPoint:
    """Decimal as written, or with the point where the format sheet says."""

    @pytest.mark.parametrize(("sheet", "digits", "value"), PUBLISHED)
    def test_published_cases(self, sheet, digits, value):
        machine = words(f'numbers = "implied"\nformat_mm = "{sheet}"\n')
        assert meaning(HEAD + f"G00 X {digits}\n", machine=machine).moves.end[0, 0] == value
        assert meaning(HEAD + f"G00 X-{digits}\n", machine=machine).moves.end[0, 0] == -value

    def test_a_written_point_and_other_letters_stay(self):
        machine = words('numbers = "implied"\nformat_mm = "N4G2X+53Y+53F40S4T2M2"\n')
        found = meaning(HEAD + "G00 X1500 Y2. Z3\nG01 X0 F300 S900\n", machine=machine)
        assert found.moves.end[:3, 0].tolist() == [1.5, 2.0, 3.0]
        assert found.moves.feed[1] * 60 == pytest.approx(300)
        assert any("format of the machine file" in r for r in found.readings)

    def test_inch_programs_have_a_format_of_their_own(self):
        machine = words('numbers = "implied"\nformat_mm = "X+53"\nformat_inch = "X+24"\n')
        text = "G20 G90 G00 X10000\nG71 X5000\nG70 X20000\n"
        assert meaning(text, machine=machine).moves.end[0] == pytest.approx([25.4, 5, 50.8])

    def test_a_unit_without_a_format_is_refused_once(self):
        machine = words('numbers = "implied"\nformat_mm = "X+53"\n')
        assert [f.code for f in faults("G20 G90 G00 X10000\nX1\n", machine=machine)] == ["format-missing"]

    def test_the_decimal_reading_is_told(self):
        assert any("X10 is 10" in r for r in meaning(HEAD + "G00 X10\n").readings)
        assert not any("X10 is 10" in r for r in meaning(HEAD + "G00 X10.\n").readings)

    def test_the_shorthand_of_the_handbook(self):
        """N4G2X+24Y+24Z+24B24I24J24F31T4M2 (this string from memory).

        Machinery's Handbook Pocket Companion has the rule: letters with word lengths; T4 is a tool code of four digits,
        linear axes have two digits ahead of the point and four after it.
        """
        found = shorthand("N4G2X+24Y+24Z+24B24I24J24F31T4M2")
        assert found == {**dict.fromkeys("XYZBIJ", Digits(2, 4)), "F": Digits(3, 1)}
        assert shorthand("x+053 Y+530") == {"X": Digits(5, 3), "Y": Digits(5, 3, trailing=True)}

    @pytest.mark.parametrize("text", ["", "X", "X+", "X5.3", "X+5353", "5X3", "X+53X+43", "X-53"])
    def test_what_is_no_shorthand_is_refused_with_its_key(self, text):
        with pytest.raises(InputError) as caught:
            words(f'numbers = "implied"\nformat_mm = "{text}"\n')
        assert caught.value.faults[0].key == "words.format_mm"

    def test_implied_points_need_a_format(self):
        with pytest.raises(InputError, match=r"words\.numbers"):
            words('numbers = "implied"\n')

    @given(whole=st.integers(1, 5), fraction=st.integers(0, 4), n=st.integers(0, 99999))
    def test_a_number_with_all_its_digits_is_read_alike_either_way(self, whole, fraction, n):
        digits = f"{n % 10 ** (whole + fraction):0{whole + fraction}d}"
        found = [
            meaning(HEAD + f"G00 Y1 X{digits}\n", machine=reading(numbers="implied", format_mm={"X": layout}))
            for layout in (Digits(whole, fraction), Digits(whole, fraction, trailing=True))
        ]
        exact = float(digits[:whole] + "." + digits[whole:])
        assert [f.moves.end[0, 0] for f in found] == [exact, exact]


class TestInverseTime:
    """The second meaning of F for arcs is feed over radius: common practice of older controls, no source."""

    TEXT = HEAD + "G00 X20 Y0\nG93 G03 X0 Y20 I-20 J0 F15\nG01 X1 F2.5\n"

    def test_a_block_lasts_one_over_f_minutes(self):
        found = meaning(self.TEXT)
        assert 1 / found.moves.feed[1:] == pytest.approx([0.066666667 * 60, 24])
        assert any("lines and arcs alike" in r for r in found.readings)

    def test_or_an_arc_lasts_its_angle_over_f(self):
        found = meaning(self.TEXT, machine=reading(inverse_time_arc="radius"))
        assert 1 / found.moves.feed[1:] == pytest.approx([0.104719755 * 60, 24])
        assert any("its angle" in r for r in found.readings)
        assert 300 * 1 / 20 == 15  # feed over radius is what stands in the program


class TestMixedFeed:
    """30 mm with 40 degrees at F500 take 6.0 s or 3.6 s (trade knowledge of the reading under G94, computed)."""

    TEXT = HEAD + "G00 X0 C0\nG01 X30 C40 F500\n"

    @pytest.mark.parametrize(("way", "seconds"), [("root-sum-square", 6.0), ("tip", 3.6), ("linear", 3.6)])
    def test_each_reading(self, way, seconds):
        found = meaning(self.TEXT, machine=reading(mixed_feed=way))
        assert 30 / found.moves.feed[-1] == pytest.approx(seconds)
        assert len([r for r in found.readings if "A B C move" in r]) == 1

    def test_arcs_and_inches(self):
        text = "G20 G90\nG00 X1 Y0 Z0\nG03 X0 Y1 I-1 J0 Z.5 A30 F20\n"
        found = meaning(text, machine=reading(mixed_feed="root-sum-square"))
        way = np.hypot(pi / 2, 0.5)
        assert way * 25.4 / found.moves.feed[1] == pytest.approx(np.hypot(way, 30) / 20 * 60)

    def test_moves_without_turning_are_as_ever(self):
        same(
            meaning(HEAD + "G01 X3 F5\nA9\n"), meaning(HEAD + "G01 X3 F5\nA9\n", reading(mixed_feed="root-sum-square"))
        )


class TestRotaryWords:
    """Absolute as written, or the shortest way."""

    def test_as_written(self):
        assert meaning(HEAD + "G00 C10\nC350\n").moves.end[5] / DEG == pytest.approx([10, 350])

    def test_the_shortest_way(self):
        text = HEAD + "G00 C10\nC350\nX5\nC160\nC190\nG91 C340\nG90 C0\n"
        found = meaning(text, machine=reading(rotary="shortest"))
        assert found.moves.end[5] / DEG == pytest.approx([10, -10, -10, 160, 190, 530, 360])
        assert any("shortest way" in r for r in found.readings)

    @given(st.lists(st.integers(-720, 720), min_size=1, max_size=9))
    def test_no_word_turns_more_than_half_a_turn_nor_elsewhere(self, angles):
        text = HEAD + "G00 A0\n" + "".join(f"A{a} X{i + 1}\n" for i, a in enumerate(angles))
        found = meaning(text, machine=reading(rotary="shortest")).moves.end[3] / DEG
        assert np.abs(np.diff(found, prepend=0.0)).max() <= 180 + 1e-9
        assert np.allclose(np.cos((found - angles) * DEG), 1.0)


class TestDwells:
    """Unit and letter of a dwell."""

    def test_units_are_keys(self):
        machine = words('dwell_p = "s"\ndwell_x = "ms"\n')
        assert meaning(HEAD + "G04 P2\nG04 X500\n", machine=machine).events.pause.tolist() == [2.0, 0.5]

    @pytest.mark.parametrize("letter", ["X", "F", "P"])
    def test_a_letter_that_means_no_time_is_refused(self, letter):
        machine = words(f'dwell_{letter.lower()} = "none"\n')
        assert faults(HEAD + f"G04 {letter}2\n", machine=machine)
        other = "P" if letter == "X" else "X"
        assert not faults(HEAD + f"G04 {other}2\n", machine=machine)

    def test_one_letter_must_be_left(self):
        with pytest.raises(InputError, match=r"words\.dwell_p"):
            words('dwell_p = "none"\ndwell_x = "none"\ndwell_f = "none"\n')


def test_the_tolerance_of_arcs_is_told():
    text = HEAD + "G00 X5\nG02 X-5 Y.2 I-5 F9\n"
    assert any("differ by 0.02 mm" in r for r in meaning(text).readings)
    assert [f.code for f in faults(text, machine=reading(arc_tolerance=0.001))] == ["arc-end-off"]
