"""Who comes in, and how: connections, bodies, codes, tokens, this machine's certificate, actions sent twice."""
