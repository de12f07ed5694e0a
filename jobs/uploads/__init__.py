"""Photos sent from a phone piece by piece: a server of the tus 1.0 open protocol.

`protocol` reads and writes its headers, `pieces` keeps bytes, `receiving` says what happens when.
"""
