"""Qualifies refurbished spin rinse dryers, from purchase order to proof."""
