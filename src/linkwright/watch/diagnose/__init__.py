"""From readings to episodes with their cause: the loop, what the others did, the table of causes, the words."""
