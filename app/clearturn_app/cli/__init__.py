"""The command line: one module a command, each a view of what the core answers."""
