"""Carries out recipes: a planner of small passes over facts, compiled kernels over strips of whole rows, and a
slow plain reference that both are held to."""
