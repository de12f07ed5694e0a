"""Certificates: what is printed, how it is drawn and signed, when it is issued and withdrawn."""
