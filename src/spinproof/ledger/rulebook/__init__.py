"""The rules of the shop as objects: text, check, and the steps that each one closes."""
