"""The path at the control period, solved into struts, batch by batch.

In: ``Timing``, ``ToolPath`` and the frames of the moves.
Out: batches of ``Poses`` (six coordinates with rate and acceleration) and of ``Setpoints`` (lengths, speeds,
accelerations, jerks of six struts; commands where the machine file describes its screws).
Idea: at each tick the path is evaluated with two exact derivatives, and the struts follow by differentiating their
lengths, not by differences of rows. A free yaw turns each pose about the axis of its tool in between.
Rule: command = length - growth - zero - hand * lead * twist / 2 pi. Each batch lies in one work frame.
Start with ``sample.py``, then ``solve.py``.
"""
