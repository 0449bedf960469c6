"""The other screens of a job, one module for each subject."""
