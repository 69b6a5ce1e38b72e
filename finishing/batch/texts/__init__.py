"""The files that users write: first ones, checks, reference, schemas, what a recipe does."""
