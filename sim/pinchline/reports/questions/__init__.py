"""Reports of the analyses: limits, rules, scatter, fit, width, cards."""
