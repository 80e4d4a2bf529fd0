"""The only code that opens the maker's files, and the job file's models."""
