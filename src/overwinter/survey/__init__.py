"""Is this installation sound: one file a subject, each with what is looked at and what it means.

Rule 1: the machine is looked at through `machine.Machine` alone, and nothing is changed: no line claimed, no
        sensor read beside a running guard, no file written.
Rule 2: what it means is computed from facts by functions that open nothing.
Rule 3: what could not be looked at is said. It is neither a fault nor sound.
Rule 4: one subject that fails is that subject's; the others are still looked at.
"""
