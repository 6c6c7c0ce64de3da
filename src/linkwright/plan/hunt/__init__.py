"""Who is in our way? Suspects of an interference in order, with evidence, and what to ask next (docs/event.md)."""
