"""Events on the clock of the setpoints."""

import numpy as np

from hexpost.moves.model import AFTER, WITH, Events
from hexpost.tables.events import events_csv


def test_events_are_told_in_program_order_with_their_sample():
    events = Events(
        move=np.array([-1, 0, 4, 4]),
        rule=np.array([WITH, WITH, AFTER, AFTER], dtype=np.uint8),
        letter=np.array([ord(c) for c in "TSGM"], dtype=np.uint8),
        value=np.array([3.0, 1200.5, 4.0, 30.0]),
        pause=np.array([0.0, 0.0, 0.25, 0.0]),
        wait=np.array([False, False, False, True]),
        line=np.array([1, 2, 9, 10], dtype=np.int32),
    )
    assert events_csv(events, np.array([0, 0, 1500, 2000]), 5e-4).decode().splitlines() == [
        "time_s,sample,line,word,rule,wait,pause_s",
        "0.000000,0,1,T3,with,0,0.000000",
        "0.000000,0,2,S1200.5,with,0,0.000000",
        "0.750000,1500,9,G4,after,0,0.250000",
        "1.000000,2000,10,M30,after,1,0.000000",
    ]
