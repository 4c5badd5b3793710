"""Prove a finished job folder again from its files alone; shared with what wrote it is only the reading of inputs."""
