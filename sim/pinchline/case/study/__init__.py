"""What a study varies of a case, keeps, and draws."""
