"""What everybody gets in the hand: PDF, CSV and calendar files."""
