"""The working hours of a job by section, and over several jobs for the next estimate."""
