"""Hand rules of the trade beside the model."""
