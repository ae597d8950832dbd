"""What our jobs say."""
