"""The command line: thin, and the commands behind it."""
