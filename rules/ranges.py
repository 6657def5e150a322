"""What the physics calls a range: the one that holds four times in five; knows no quantity."""

EIGHTY_PERCENT = 1.2815515655446004
"""Half the width, in standard deviations, that holds 80 % of a normal distribution (any table of it)."""
