"""Studies: many runs of one case, and what their differences say."""
