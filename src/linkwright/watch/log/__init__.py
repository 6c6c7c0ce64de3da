"""What receivers say: records, logs in any form, readings as they come."""
