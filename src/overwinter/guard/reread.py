"""What a reload finds in the two files: what may be taken, and what is refused, with reasons.

The guard itself acts on it after a SIGHUP, and can only answer a signal in the journal and the logbook. The
service manager runs the same beside it (`guard --reread`), so that `systemctl reload` fails where a file is
refused. Both come to the same: it follows from the files and from what runs, of which a copy is kept.
"""

from dataclasses import dataclass, field

from overwinter.core.nouns import Settings, Site
from overwinter.guard.files import SETTINGS, read_bounded, reread_settings
from overwinter.guard.paths import Paths
from overwinter.settings.site import differences_needing_restart, parse_site, sense_s_min


@dataclass(slots=True)
class Reread:
    """What was found; None and empty where a file is refused: `refused` says why, one line a file."""

    site: Site | None = None
    site_bytes: bytes = b""
    settings: Settings | None = None
    settings_bytes: bytes = b""
    refused: list[str] = field(default_factory=list)


def reread(paths: Paths, running: Site | None) -> Reread:
    """Read both files again; `running` is the site that the guard runs on, None where it is not known."""
    found = Reread()
    try:
        data = read_bounded(paths.site)
    except OSError as error:
        found.refused.append(f"{paths.site}: {error.strerror or error}")
    else:
        parsed = parse_site(data)
        if parsed.site is None:
            found.refused.append(f"{paths.site}: " + "; ".join(problem.text for problem in parsed.problems))
        elif running is not None and (wiring := differences_needing_restart(running, parsed.site)):
            found.refused.append(f"{paths.site}: {', '.join(wiring)}: needs a restart")
        else:
            found.site, found.site_bytes = parsed.site, data
    path = paths.state / SETTINGS
    site = found.site or running
    try:
        text, settings = reread_settings(path, sense_s_min=1.0 if site is None else sense_s_min(site))
    except OSError as error:
        found.refused.append(f"{path}: {error.strerror or error}")
    else:
        if settings.problems:
            found.refused.append(f"{path}: " + "; ".join(problem.text for problem in settings.problems))
        else:
            found.settings, found.settings_bytes = settings.settings, text
    return found
