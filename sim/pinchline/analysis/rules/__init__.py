"""Hand rules of the trade compared with the model."""
