"""The command line: parse, call `finishing.batch`, print. Nothing heavy is imported before a command needs it."""
