"""The manifest says what a receiver must know, and nothing that differs between equal runs."""

import json
from types import SimpleNamespace

import numpy as np

import hexpost
from hexpost.tables.manifest import JobFacts, manifest


def test_equal_jobs_have_equal_manifests():
    machine = SimpleNamespace(name="Own", revision="2", demonstration=False)
    facts = JobFacts(
        runnable=True, inputs={"program": "inputs/a.nc"}, settings={"feed": "as-programmed"}, duration=1.5,
        tables={"setpoints.csv": {"rows": 3}},
    )  # fmt: skip
    made = manifest(facts, machine)
    assert made["versions"]["hexpost"] == hexpost.__version__
    assert made["versions"]["numpy"] == np.__version__
    assert (made["runnable"], made["units"]["length"], made["tables"]["setpoints.csv"]["rows"]) == (True, "mm", 3)
    assert json.dumps(made) == json.dumps(manifest(facts, machine))
