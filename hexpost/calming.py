"""What longer averages cost and gain: the job planned without them, and how far the tip swings then."""

from dataclasses import replace

from hexpost.audit.model import AuditResult, Calmed
from hexpost.audit.shaking import Shaking
from hexpost.pipeline import Job, schedule
from hexpost.setpoints.attitudes import Attitudes


def with_calmed(job: Job, result: AuditResult) -> AuditResult:
    """Return the audit of a job with what ``--calm-lowest`` did, where it was asked for."""
    machine, found = job.inputs.machine, result.behaviour.shaken
    if not machine.calm or found is None:
        return result
    usual = replace(machine, calm=False)
    plain = replace(schedule(replace(job.inputs, machine=usual), job.feed), yaw=job.yaw)
    shaking = Shaking(usual, Attitudes(usual, job.inputs.meaning.moves.frames))
    for setpoints in plain.setpoints(commands=False):
        shaking.of(setpoints)
    period, before = machine.period, shaking.result()
    time, swing = (plain.timing.ticks * period, result.duration), (before.swing.value, found.swing.value)
    shaken = replace(found, calmed=Calmed(time=time, swing=swing))
    return replace(result, behaviour=replace(result.behaviour, shaken=shaken))
