"""The pages of safety notices."""
