"""What was made of what: the ledger, telling it, and making it once more."""
