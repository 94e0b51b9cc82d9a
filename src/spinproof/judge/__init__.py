"""From a trace, its recipe and the limits to a judgement."""
