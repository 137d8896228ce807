"""The batch in time: one model of rates, fitted to every reading at once."""
