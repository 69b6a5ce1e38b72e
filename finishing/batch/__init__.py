"""The use cases: what each command does, apart from parsing and printing."""
