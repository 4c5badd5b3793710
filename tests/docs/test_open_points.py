"""The guide's page of keys for open points is a machine file's, and shows the defaults."""

import re
from dataclasses import replace

from docs.words_table import README

from hexpost.machine.load import DEMONSTRATION, machine_from
from hexpost.machine.wording import Words


def test_the_keys_of_the_guide_are_keys_and_show_the_defaults():
    section = README.read_text().split("### How open points are read")[1]
    toml = re.search(r"```toml\n(.*?)```", section, re.DOTALL)[1]
    machine = machine_from((DEMONSTRATION.read_text() + "\n" + toml).encode(), "guide.toml")
    usual = Words()
    for name in Words.__dataclass_fields__:
        assert getattr(machine.words, name) == getattr(usual, name), name
    assert [(row.word, row.action, row.same_as) for row in machine.dialect] == [
        ("M77", "ignore", ""),
        ("M78", "same-as", "M8"),
    ]
    shown = re.sub(r"^# (\w+ =)", r"\1", toml, flags=re.MULTILINE)
    other = machine_from((DEMONSTRATION.read_text() + "\n" + shown).encode(), "guide.toml").words
    assert replace(other, units=None, manual_withdrawal=None) == usual
    assert (other.units, other.manual_withdrawal) == ("mm", 20.0)
