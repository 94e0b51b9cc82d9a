"""Sources to a crash-safe journal to a sealed trace file."""
