"""The reader of fixed decimals: what it accepts, and as which number, by a regular expression and whole numbers."""

import re

import numpy as np
import pytest

from hexpost.verify.fixed import PAD, FixedDecimals, RefusedTextError

TABLE = [3, *[6] * 12, *[3] * 6, 0]


def parse(text, decimals):
    return FixedDecimals(decimals).parse(memoryview(b"\0" * PAD + text))


def row(decimals):
    return b",".join(b"-?[0-9]+" + (b"\\.[0-9]{%d}" % d if d else b"") for d in decimals) + b"\n"


def number(field):
    return int(field.replace(b".", b""))


def random_text(rng, decimals, rows, digits):
    lines = []
    for _ in range(rows):
        fields = []
        for d in decimals:
            size = rng.integers(1, digits + 1)
            whole = "".join(rng.choice(list("0123456789"), size))
            after = "".join(rng.choice(list("0123456789"), d))
            fields.append(("-" if rng.random() < 0.3 else "") + whole + ("." + after if d else ""))
        lines.append(",".join(fields))
    return ("\n".join(lines) + "\n").encode()


@pytest.mark.parametrize("digits", [1, 4, 8, 11])
@pytest.mark.parametrize("decimals", [TABLE, [0], [1, 7], [2, 2, 2], [5, 0, 4]])
def test_every_field_is_the_number_it_says(decimals, digits):
    rng = np.random.default_rng(digits)
    text = random_text(rng, decimals, 40, digits)
    wanted = [[number(f) for f in line.split(b",")] for line in text.splitlines()]
    assert parse(text, decimals).T.tolist() == wanted


def test_changed_bytes_are_accepted_exactly_where_the_form_is_met():
    rng = np.random.default_rng(7)
    accepted = refused = 0
    for decimals in (TABLE, [2, 0, 6]):
        form = re.compile(b"(?:" + row(decimals) + b")+")
        text = random_text(rng, decimals, 5, 5)
        for _ in range(4000):
            changed = bytearray(text)
            at = int(rng.integers(len(changed)))
            kind = rng.integers(3)
            if kind == 0:
                changed[at] = rng.choice(list(b"0123456789.,-\n +eE\x00\xff/:N"))
            elif kind == 1:
                del changed[at]
            else:
                changed.insert(at, rng.choice(list(b"0123456789.,-\n")))
            changed = bytes(changed)
            if form.fullmatch(changed):
                wanted = [[number(f) for f in line.split(b",")] for line in changed.splitlines()]
                assert parse(changed, decimals).T.tolist() == wanted
                accepted += 1
            else:
                with pytest.raises(RefusedTextError):
                    parse(changed, decimals)
                refused += 1
    assert min(accepted, refused) > 500


@pytest.mark.parametrize("field", ["nan", "inf", "1e3", "0x1f", "", "-", ".5", "1.", "+1.5", " 1.5", "1.5 ", "--1.5"])
def test_other_forms_of_numbers_are_refused(field):
    with pytest.raises(RefusedTextError):
        parse(f"1.5,{field}\n".encode(), [1, 1])


def test_numbers_that_do_not_fit_are_refused_and_never_cut():
    assert parse(b"123456789012345678\n", [0])[0, 0] == 123456789012345678
    for field in (b"1234567890123456789\n", b"9" * 3000 + b"\n", b"0" * 30 + b"1\n"):
        with pytest.raises(RefusedTextError):
            parse(field, [0])
