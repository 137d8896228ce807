"""What every room stands on: refusals, results in writing, units, shares of a ±, cautions."""
