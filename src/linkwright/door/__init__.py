"""Who comes in: connections, bodies and their limits, one-time codes, the certificate of this machine."""
