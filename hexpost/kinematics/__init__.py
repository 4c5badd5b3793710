"""Frames, struts, joints and forces: pure functions of arrays. They know no machine file.

In: joints (6, 3), poses (6, n) with their derivatives: mm, s, rad.
Out: lengths and their derivatives, Jacobian, pose from lengths, joint angles, thrusts, torques, distances.
Idea: the squared length of a strut is linear in features of the pose. So one small matrix times rows of features,
order by order of their Taylor series, gives lengths with all derivatives; the square root is a short recursion.
Rule: strut vector = t + R b - a, length its norm, rate = [u, (R b) x u] . [v; w]; R = Rz(C) Ry(B) Rx(A) for ``"ABC"``.
Frames are named so that equal words touch: ``base_from_work @ work_from_tip``.
Start with ``frames.py``, then ``struts.py``; ``thrusts.py`` is the same idea for forces.
"""
