"""Measure one goal and print one JSON line: ``python tests/bench/run.py NAME`` (``--list`` names them).

Every figure is a ratio of two things timed in the same run on the same data (or megabytes, or percent), because
absolute times mean nothing on shared machines. ``goal`` says on which side of the bar the figure should lie.
"""

import importlib
import json
import os
import sys
from pathlib import Path

# name: (module, function, goal)
BENCHES = {
    "read-vs-lark": ("reading", "read_vs_lark", ">= 100"),
    "read-vs-regex": ("reading", "read_vs_regex", ">= 9"),
    "read-memory": ("reading", "read_memory", "<= 64"),
    "interpret": ("interpreting", "interpret_ratio", ">= 2"),
    "fuzz": ("fuzzing", "fuzz", "<= 20"),
    "solve-vs-naive": ("solving", "solve_vs_naive", ">= 10"),
    "solve-vs-compiled": ("solving", "solve_vs_compiled", ">= 1"),
    "schedule-vs-toppra": ("scheduling", "schedule_vs_toppra", ">= 80"),
    "schedule-vs-compiled": ("scheduling", "schedule_vs_compiled", ">= 0.5"),
    "schedule-duration": ("scheduling", "schedule_duration", "<= 1e-8"),
    "jerk-cost": ("scheduling", "jerk_cost", "<= 1.5"),
    "jerk-gap": ("optimising", "jerk_gap", "<= 1.05"),
    "planning-linear": ("optimising", "planning_linear", "<= 1.1"),
    "lone-line": ("scheduling", "lone_line_ratio", "<= 1.01"),
    "schedule-never-fails": ("scheduling", "never_fails", "<= 0"),
    "fineness": ("smoothing", "fineness", "<= 1.05"),
    "fineness-of-curves": ("smoothing", "fineness_of_curves", "<= 1.05"),
    "dense-program": ("smoothing", "dense_program", "<= 1.05"),
    "audit-vs-solve": ("struts", "full_audit", "<= 4"),
    "csv-vs-savetxt": ("tables", "csv_vs_savetxt", ">= 10"),
    "csv-vs-pyarrow": ("tables", "csv_vs_pyarrow", ">= 3"),
    "csv-vs-raw": ("tables", "csv_vs_raw", "<= 6"),
    "parquet-size": ("tables", "parquet_size", "<= 0.14"),
    "kills": ("attack.killing", "kills", "<= 0"),
    "help": ("whole", "help_ratio", "<= 5"),
    "survey-vs-read": ("surveying", "survey_vs_read", "<= 2"),
    "gate-parallel": ("gating", "gate_parallel", ">= 1.6"),
    "gate-cached": ("gating", "gate_cached", ">= 50"),
    "gate-overhead": ("gating", "gate_overhead", "< 2"),
    "gate-dispatch": ("gating", "gate_dispatch", "<= 1"),
    "whole-job": ("whole", "whole_job", "<= 0.20"),
    "whole-job-limited": ("whole", "whole_job_limited", "<= 0.30"),
    "short-job": ("short", "short_job", "<= 3"),
    "audit-vs-convert": ("short", "audit_vs_convert", "<= 0.5"),
    "sample-memory": ("whole", "sample_memory", "<= 1.2"),
    "block-memory": ("whole", "block_memory", "<= 120"),
    "whole-memory": ("whole", "whole_memory", "<= 400"),
    "verify-vs-convert": ("proving", "verify_vs_convert", "<= 1.0"),
    "equations-vs-convert": ("proving", "equations_vs_convert", "<= 0.7"),
    "convert-with-proof": ("proving", "convert_with_proof", "<= 1.5"),
    "audit-with-proof": ("proving", "audit_with_proof", "<= 1.5"),
    "proof-memory": ("proving", "proof_memory", "<= 400"),
    "on-cores": ("whole", "on_cores", ">= 1.2"),
    "tip-cost": ("whole", "tip_cost", "<= 1.6"),
    "selfcheck-cost": ("whole", "selfcheck_cost", "<= 2"),
    "playing-frames": ("playing", "playing_frames", ">= 0.4"),
}


def main(arguments: list[str]) -> int:
    """Run the named bench; 2 for an unknown name."""
    if arguments == ["--list"]:
        print("\n".join(f"{name:20s} {goal}" for name, (_, _, goal) in BENCHES.items()))
        return 0
    if len(arguments) != 1 or arguments[0] not in BENCHES:
        print(f"usage: run.py --list | NAME; NAME is one of {', '.join(BENCHES)}", file=sys.stderr)
        return 2
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    sys.path.insert(0, str(Path(__file__).parent.parent))
    sys.path.insert(0, str(Path(__file__).parent))
    module, function, goal = BENCHES[arguments[0]]
    figures = getattr(importlib.import_module(module), function)()
    print(json.dumps({**figures, "name": arguments[0], "goal": goal}))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
