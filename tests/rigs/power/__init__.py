"""Real power cuts: the real guard on a real ext4, and every state in which a cut could have left the disk.

How: `recorder` is a disk that writes down, in order, what the file system above it writes and flushes.
`scene` lets the guard live on it while settings change; what it has answered is marked in the same record.
`states` builds the disk as a cut could have left it, `check` asks each of them, mounted for real, whether
everything that was promised is there, and `sabotage` spoils the guard, to prove that the rig would see it.
"""
