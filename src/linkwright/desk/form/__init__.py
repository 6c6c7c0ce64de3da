"""The shoot as a form: its fields made from the models, and what stands in them."""
