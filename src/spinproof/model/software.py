"""The name and version that judgements, plans, traces and packages carry."""

VERSION = "0.1.0"
SOFTWARE = f"spinproof {VERSION}"
