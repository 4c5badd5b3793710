"""Setting up a job: align to a probed part, place it, choose the yaw, calibrate the machine."""
