"""The command line: a file a command, each a function that says what it did in plain lines."""
