"""What a head will do with a recipe: models calibrated on its own runs, intervals, advice."""
