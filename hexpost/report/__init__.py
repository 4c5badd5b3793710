"""What people and machines read about a job."""
