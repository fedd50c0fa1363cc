"""What happens without being asked: the table of jobs and who runs it."""
