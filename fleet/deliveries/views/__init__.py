"""The pages of deliveries."""
