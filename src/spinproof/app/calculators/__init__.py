"""Calculators of the bench: each one module that declares its inputs, its law and its words."""
