"""The operations, one file each, and the catalogue that lists them."""
