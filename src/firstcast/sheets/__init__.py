"""Pictures and sheets: the pattern-maker's drawing of a job."""
