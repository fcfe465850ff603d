"""Who tells: the notifier's parts. A process of its own, that may hang or die without the guard noticing.

Nothing in here opens a device, steers heat or writes the guard's files; what it knows it asks of the socket.
"""
