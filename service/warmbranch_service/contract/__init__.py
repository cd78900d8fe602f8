"""What every question shares: fields and their units, rules, refusals, errors, rounding."""
