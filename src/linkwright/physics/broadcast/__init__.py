"""Broadcast fields over land: ITU-R P.1546-6 and the curves of 47 CFR 73.699. The tables come in as arguments."""
