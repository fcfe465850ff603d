"""All promises, one after another, a line each: `python -m tests.rigs.gpio.guest`, inside the machine."""

import json
import sys
import time
import traceback

from tests.rigs.gpio.guest.promises import PROMISES
from tests.rigs.gpio.guest.rig import Rig
from tests.rigs.gpio.guest.service import Broken, journal


def main() -> int:
    """Keep going after a broken promise: the next one may tell why."""
    rig = Rig()
    for promise in PROMISES:
        began = time.monotonic()
        try:
            said, is_kept = promise.check(rig), True
        except Broken as broken:
            said, is_kept = str(broken), False
        except Exception as error:  # noqa: BLE001 (whatever it is, it is told)
            traceback.print_exc()
            said, is_kept = f"{type(error).__name__}: {error}", False
        if not is_kept:
            print(f"BROKEN {promise.text}: {said}\n{journal(40)}", file=sys.stderr, flush=True)
        took_s = time.monotonic() - began
        line = {"promise": promise.text, "is_kept": is_kept, "said": said, "took_s": round(took_s, 1)}
        print(json.dumps(line), flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
