"""What a machine can do at each place: reach, tilt, feeds, stiffness; maps of it."""
