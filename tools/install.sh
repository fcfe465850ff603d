#!/bin/sh
# What `sudo make install`, `sudo make uninstall` and `make wheels` do. Debian 12 and 13, Raspberry Pi OS; any POSIX shell.
#
# All of one version lies in one folder below /opt/overwinter/versions: a virtual environment, so that the system's
# Python is never touched, and under files/ a copy of every file that belongs elsewhere (units, pages, completion).
# /opt/overwinter/current is a link to the version in use. A new version is built beside it and written through to
# the disk; then one rename moves the link. Whatever comes before that rename may be cut off at any point: the old
# version is untouched. Whatever comes after it is finished by running this again: a new version runs with the
# units of the one before.
#
# Settings and logbook are never touched, but by `uninstall` with PURGE=1.
#
#   WHEELS=DIR     take packages from this folder, ask no index (`make wheels` fills one)
#   PYTHON=FILE    the Python to build on, 3.11 or newer; /usr/bin/python3 if not said
#   PREFIX=DIR     /usr/local, or /usr for a package
#   DESTDIR=DIR    put the files below this folder, and call nothing of the running system
#   ANYWAY=1       even if this version refuses a site.toml that the installed one takes
#   PURGE=1        uninstall: settings, site.toml, logbook and the user as well
set -eu
umask 022
unset PYTHONHOME PYTHONPATH VIRTUAL_ENV

tree=$(cd "$(dirname "$0")/.." && pwd)
dest=${DESTDIR:-}
prefix=${PREFIX:-/usr/local}
home=/opt/overwinter # as the installed program sees it
opt=$dest$home
new=
changes=0

# A version takes 33 MB and 2400 files; building it, twice as much for a while.
NEEDED_KB=100000
NEEDED_FILES=5000

# What the package is built of, and what its build makes in between.
SOURCES='src pyproject.toml hatch_build.py README.md LICENSE'
MADE=src/overwinter/show/assets

# For the services that site.toml may ask for; small, and no compiler anywhere.
EXTRAS=mqtt,web

NOT_ISOLATED='NOT ISOLATED: heat may start without warning; unplug or open the breaker before touching (with contact NC, stopping even starts it)'

say() { printf '%s\n' "$@"; }
did() { changes=$((changes + 1)) && say "$*"; }
stop() {
    for line in "$@"; do printf 'overwinter: %s\n' "$line" >&2; done
    exit 1
}
has() { command -v "$1" >/dev/null 2>&1; }
is_live() { [ -z "$dest" ] && [ -d /run/systemd/system ] && has systemctl; }
can_apt() { [ -z "$dest" ] && [ -z "${WHEELS:-}" ] && has apt-get; }
current() { readlink -e "$opt/current" 2>/dev/null || :; }

# --- install ------------------------------------------------------------------------------------------------------

install_it() {
    case $prefix in /usr/local | /usr) ;; *)
        stop "PREFIX=$prefix: allowed are /usr/local and /usr; elsewhere nobody looks for units and pages" ;;
    esac
    offline=
    if [ -n "${WHEELS:-}" ]; then
        offline=$(cd "$WHEELS" 2>/dev/null && pwd) || stop "WHEELS=$WHEELS: no such folder"
    fi
    mkdir -p "$opt/versions" 2>/dev/null || cannot_write "$opt"
    only_one
    pick_python
    has_before=$(current)
    is_first=1
    [ ! -e "$opt/begun" ] || is_first=
    drop_half_built

    id=$(fingerprint)
    version=$(sed -n 's/^__version__ = "\(.*\)"$/\1/p' "$tree/src/overwinter/__init__.py")
    if [ -n "$has_before" ] && [ "$(cat "$has_before/id" 2>/dev/null)" = "$id" ] && is_sound "$has_before"; then
        say "overwinter $version is in $home already"
    else
        check_sites
        if ! built_before; then
            check_space
            build
        fi
        switch_to "$new"
        did "overwinter $version is in $home"
        new=
    fi
    place "$(current)"
    place_site
    if [ -n "$dest" ]; then
        say "staged below $dest; on the machine itself follow: systemd-sysusers, systemctl enable overwinter"
    else
        make_user
        take_up
    fi
    drop_old
    [ "$changes" -gt 0 ] || say "nothing had to be changed"
}

only_one() {
    # The folder itself is the lock: a file would be one more thing that changes.
    exec 9<"$opt"
    flock -n 9 || stop "another installation is running"
}

cannot_write() {
    stop "$1 cannot be written to" \
        "A worn card often ends read-only (dmesg | grep -i mmc): if so, put in a new one. Settings and logbook can still be copied."
}

# Sets $python, and $shared where packages of the system must be seen.
pick_python() {
    python=
    for name in ${PYTHON:-/usr/bin/python3 /usr/bin/python3.11 /usr/bin/python3.12 /usr/bin/python3.13 python3}; do
        # The file behind the name: after an upgrade of the system `python3` is another one.
        python=$("$name" -c 'import os, sys; assert sys.version_info >= (3, 11); print(os.path.realpath(sys.executable))' \
            2>/dev/null) && break
    done
    [ -n "$python" ] || stop "Python 3.11 or newer is needed (looked for ${PYTHON:-/usr/bin/python3, python3 and others})"
    case $python in /home/* | /root/*)
        stop "$python is in a home folder, which the service cannot see: apt-get install python3 python3-venv" ;;
    esac
    "$python" -c 'import ensurepip, venv' 2>/dev/null || wants python3-venv "Python's venv module is incomplete"

    # Where no wheel of lgpio exists, the system's serves; the same condition stands in pyproject.toml.
    shared=$("$python" -c '
import platform, sys
has_wheel = sys.version_info < (3, 13) and platform.machine() in ("x86_64", "aarch64")
print("" if has_wheel else "--system-site-packages")')
    if [ -n "$shared" ] && ! finds "$python" lgpio; then
        wants python3-lgpio "no wheel of lgpio exists for this Python" || {
            say "WITHOUT lgpio NO RELAY CAN BE DRIVEN. Before heat is needed: sudo apt-get install python3-lgpio"
        }
    fi
}

finds() { "$1" -I -c 'import importlib.util, sys; sys.exit(not importlib.util.find_spec(sys.argv[1]))' "$2"; }

# A package of the system: installed if that may be, else told. lgpio is not needed for simulated relays.
wants() {
    if can_apt; then
        did "$2: installing $1"
        apt-get install -y --no-install-recommends "$1" && return 0
    fi
    [ "$1" = python3-lgpio ] && return 1
    stop "$2: apt-get install $1"
}

# What this tree, on this Python, would install.
# shellcheck disable=SC2086 # a list of names
fingerprint() {
    cd "$tree"
    {
        find $SOURCES systemd man completion etc tools -type f ! -name '*.pyc' ! -path "$MADE/*" \
            -exec sha256sum {} + | LC_ALL=C sort
        "$python" -c 'import sys; print(sys.version, sys.executable)'
        echo "$prefix $shared"
    } | sha256sum | cut -c1-16
}

# Whether a version can run on the Python that is here now: an upgrade of the system may have taken its own away.
is_sound() {
    "$1/venv/bin/python" -I -B -c 'import gpiozero, overwinter.cli.status, overwinter.guard.main' >/dev/null 2>&1 \
        && [ -x "$1/venv/bin/overwinter" ]
}

# A version that was built and not taken, or taken back, need not be built again.
built_before() {
    for folder in "$opt"/versions/*; do
        if [ "$(cat "$folder/id" 2>/dev/null)" = "$id" ] && is_sound "$folder"; then
            [ "$(readlink -f "$folder")" = "$has_before" ] || { new=$folder && return 0; }
        fi
    done
    return 1
}

check_space() {
    free_kb=$(df -Pk "$opt/versions" | awk 'NR == 2 { print $4 }')
    free_files=$(df -Pi "$opt/versions" | awk 'NR == 2 { print $4 }')
    [ "$free_kb" -ge $NEEDED_KB ] || stop \
        "$opt: $((free_kb / 1000)) MB are free, $((NEEDED_KB / 1000)) MB are needed; nothing was changed" \
        "What fills it: sudo du -xhd1 / | sort -h; much of it often: sudo apt-get clean, sudo journalctl --vacuum-size=50M"
    case $free_files in '' | *[!0-9]* | 0) return 0 ;; esac # some file systems count no files
    [ "$free_files" -ge $NEEDED_FILES ] || stop \
        "$opt: room for $free_files more files, $NEEDED_FILES are needed (df -i); nothing was changed"
}

build() {
    new=$(mktemp -d "$opt/versions/$version.XXXXXX") || cannot_write "$opt/versions"
    chmod 755 "$new"
    name=${new##*/}
    work=$new/tmp
    mkdir "$work"
    say "building overwinter $version on $python; minutes on a small board"
    # shellcheck disable=SC2086 # no word, or one
    "$python" -m venv $shared "$new/venv"
    build_wheel "$new/venv/bin/python" || cannot_build
    pip_of "$new/venv/bin/python" install "$(echo "$work"/overwinter-*.whl)[$EXTRAS]" || cannot_build
    "$new/venv/bin/python" -I -m pip uninstall --quiet --yes pip 2>/dev/null
    # What other packages bring along as commands is not ours to offer.
    find "$new/venv/bin" -mindepth 1 ! -name 'python*' ! -name overwinter -delete
    # -I: whatever PYTHONPATH or the current folder hold, this program is the installed one.
    sed -i "1s|.*|#!$home/versions/$name/venv/bin/python -I|" "$new/venv/bin/overwinter"
    sed -i "s|= $dest/opt|= /opt|; s| $dest/opt| /opt|" "$new/venv/pyvenv.cfg"
    furnish "$new/files$prefix"
    rm -rf "$work"
    is_sound "$new" || stop "what was built does not run; nothing was changed" \
        "$("$new/venv/bin/python" -I -B -c 'import gpiozero, overwinter.cli.status, overwinter.guard.main' 2>&1 | tail -1)"
    echo "$id" >"$new/id"
    # All of it on the disk before anything points to it; an error of the disk is heard here.
    sync -f "$new" || stop "$opt: the disk does not take what is written; nothing was changed"
}

# pip_of PYTHON VERB ...: the cache and /tmp may lie where there is no room. The old way of building what comes
# without a wheel (sdnotify) needs a package that is not there.
pip_of() {
    asked=$1
    verb=$2
    shift 2
    TMPDIR="$work" "$asked" -m pip "$verb" --quiet --no-cache-dir --disable-pip-version-check --use-pep517 \
        ${offline:+--no-index --find-links "$offline"} "$@"
}

# Our own wheel, into $work. Not by pip's isolated build: that would fetch what the packages we take a file or two
# from need to run, more than all the rest together, some of it with a compiler. And in a copy of the tree:
# building leaves files there, which in the owner's folder would be root's.
build_wheel() {
    mkdir "$work/tree"
    # shellcheck disable=SC2086 # a list of names
    (cd "$tree" && cp -r $SOURCES "$work/tree")
    rm -rf "${work:?}/tree/$MADE"
    build_requirements
    pip_of "$1" install --target "$work/builder" --requirement "$work/backend.txt" \
        && pip_of "$1" install --target "$work/builder" --no-deps --requirement "$work/taken-from.txt" \
        && PYTHONPATH="$work/builder" pip_of "$1" wheel --no-deps --no-build-isolation --wheel-dir "$work" "$work/tree"
}

# What pyproject.toml says that a build needs: what builds, and what files are taken from.
build_requirements() {
    "$python" -c '
import sys, tomllib
from pathlib import Path
with open(sys.argv[1], "rb") as file:
    backend, *others = tomllib.load(file)["build-system"]["requires"]
Path(sys.argv[2], "backend.txt").write_text(backend + "\n")
Path(sys.argv[2], "taken-from.txt").write_text("".join(f"{other}\n" for other in others))' "$tree/pyproject.toml" "$work"
}

cannot_build() {
    [ -n "${WHEELS:-}" ] || say "without a network: make wheels where there is one, then make install WHEELS=FOLDER" >&2
    case $(uname -m) in x86_64) ;; *)
        say "if a compiler was missing: on 32-bit systems sysv_ipc and gpiod have no wheel on the general index;" \
            "apt-get install gcc python3-dev, or an index that has them (Raspberry Pi OS names one in /etc/pip.conf)" >&2 ;;
    esac
    stop "the packages could not be installed; nothing was changed"
}

# Every file that belongs elsewhere, laid out as it will lie. Pages and completion come from the program's own tables.
furnish() {
    into=$1
    case $prefix in /usr) zsh_folder=vendor-completions ;; *) zsh_folder='site-functions' ;; esac
    mkdir -p "$into/bin" "$into/lib/systemd/system" "$into/lib/sysusers.d" "$into/share/doc/overwinter" \
        "$into/share/bash-completion/completions" "$into/share/zsh/$zsh_folder" "$into/share/fish/vendor_completions.d"
    ln -s "$home/current/venv/bin/overwinter" "$into/bin/overwinter"
    for unit in "$tree"/systemd/*.service "$tree"/systemd/*.socket "$tree"/systemd/*.target; do
        [ ! -e "$unit" ] || sed "s|/usr/local/bin/|$prefix/bin/|" "$unit" >"$into/lib/systemd/system/${unit##*/}"
    done
    cp "$tree/systemd/overwinter.sysusers" "$into/lib/sysusers.d/overwinter.conf"
    cp "$tree/etc/site.toml" "$into/share/doc/overwinter/site.toml"
    "$new/venv/bin/python" -I -B "$tree/man/pages.py" "$into/share/man"
    for shell in bash:bash-completion/completions/overwinter zsh:zsh/$zsh_folder/_overwinter \
        fish:fish/vendor_completions.d/overwinter.fish; do
        "$new/venv/bin/python" -I -B "$tree/completion/scripts.py" "${shell%%:*}" >"$into/share/${shell#*:}"
    done
}

# A site.toml that the running version takes and the new one refuses would leave nobody to heat.
check_sites() {
    [ -n "$has_before" ] && [ -z "${ANYWAY:-}" ] || return 0
    for site in "$dest"/etc/overwinter/site.toml "$dest"/etc/overwinter@*/site.toml; do
        [ -e "$site" ] || continue
        refused=$(accept "$python" "$tree/src" "$site") && continue
        if accept "$has_before/venv/bin/python" "" "$site" >/dev/null 2>&1; then
            stop "overwinter $version would not start with $site:" "$refused" \
                "Nothing was changed. Mend the file, or install anyway: make install ANYWAY=1"
        fi
    done
}

# accept PYTHON FOLDER FILE: whether the program, in that folder if not in that Python's own, takes this site.toml.
# What is wrong with it goes to standard output.
accept() {
    "$1" -I -B -c '
import sys
from pathlib import Path
sys.path[:0] = filter(None, [sys.argv[1]])
from overwinter.settings.site import parse_site
problems = parse_site(Path(sys.argv[2]).read_bytes()).problems
print("\n".join(f"  {problem.text}" for problem in problems))
sys.exit(bool(problems))' "$2" "$3"
}

# One rename: a power cut leaves the old version or the new one.
switch_to() {
    rm -f "$opt/.current"
    ln -s "versions/${1##*/}" "$opt/.current"
    mv -T "$opt/.current" "$opt/current"
    sync -f "$opt"
}

# Put a version's files where they belong, each by a rename; take away those that only others had.
place() {
    units_changed=
    for file in $(listed "$1"); do
        is_same "$1/files$file" "$dest$file" && continue
        folder_for "$dest$file"
        cp -dp "$1/files$file" "$dest$file.new"
        mv -T "$dest$file.new" "$dest$file"
        did "  $file"
        case $file in */systemd/system/*) units_changed=1 ;; esac
    done
    for other in "$opt"/versions/*; do
        for file in $(listed "$other"); do
            if [ ! -e "$1/files$file" ] && [ ! -L "$1/files$file" ] && [ -e "$dest$file" ]; then
                rm -f "$dest$file"
                did "  $file is gone"
                units_changed=1
            fi
        done
    done
}

listed() { [ ! -d "$1/files" ] || (cd "$1/files" && find . -type f -o -type l | sed 's/^\.//' | LC_ALL=C sort); }

is_same() {
    if [ -L "$1" ] || [ -L "$2" ]; then
        [ "$(readlink "$1")" = "$(readlink "$2" 2>/dev/null)" ]
    else
        cmp -s "$1" "$2"
    fi
}

# Folders made here are remembered: who takes everything away again takes them away too, once they are empty.
folder_for() {
    [ ! -d "$(dirname "$1")" ] || return 0
    folder_for "$(dirname "$1")"
    mkdir "$(dirname "$1")"
    printf '%s\n' "$(dirname "${1#"$dest"}")" >>"$opt/folders"
}

# The example, but for the relay's pin: until the owner says it, the guard refuses to start. A wrong pin may switch
# anything, and a power cut must not be what starts it.
place_site() {
    site=$dest/etc/overwinter/site.toml
    [ ! -e "$site" ] || return 0
    mkdir -p "$dest/etc/overwinter"
    awk '
        /^\[/ { in_relay = ($0 == "[relay]") }
        in_relay && /^pin *=/ {
            print "# Which pin drives your relay? Say it and remove the \"#\": until then the guard does not start."
            $0 = "# " $0
        }
        /^(limiter|backup_thermostat) *=/ {
            if (!told++) print "# Only where they are really there, and tested:"
            $0 = "# " $0
        }
        { print }' "$tree/etc/site.toml" >"$site.new"
    mv -T "$site.new" "$site"
    did "  /etc/overwinter/site.toml"
}

make_user() {
    case " $(id -nG overwinter 2>/dev/null) " in *" gpio "*) return 0 ;; esac
    if has systemd-sysusers; then
        told=$(systemd-sysusers "$prefix/lib/sysusers.d/overwinter.conf" 2>&1) || stop "$told"
        did "user and group overwinter, a member of gpio"
    else
        say "there is no systemd-sysusers here: the service needs a user overwinter in the group gpio" >&2
    fi
}

# --- the running system -------------------------------------------------------------------------------------------

# Enabled at the first installation; later it is as the owner has it. A guard that runs is restarted if it is of
# another version; one that was stopped stays stopped, since somebody may have a hand on the heater.
take_up() {
    has systemctl || return 0
    if [ -n "$units_changed" ] && is_live; then systemctl daemon-reload; fi
    failed=
    if [ -n "$is_first" ]; then
        begin
    elif is_live; then
        restart_all
    fi
    tell_next
    [ -z "$failed" ] || stop "$failed does not start: journalctl -u ${failed# } -n 20"
}

# Every house that there is; another one than the first has its site.toml from an installation before.
begin() {
    for site in /etc/overwinter/site.toml /etc/overwinter@*/site.toml; do
        [ -e "$site" ] || continue
        unit=$(basename "$(dirname "$site")").service
        told=$(systemctl enable "$unit" 2>&1) || stop "$told"
        did "$unit is enabled: it starts with the machine"
        if is_live && accept "$(current)/venv/bin/python" "" "$site" >/dev/null 2>&1; then
            if systemctl start "$unit"; then did "$unit runs: overwinter status"; else failed="$failed $unit"; fi
        fi
    done
    : >"$opt/begun" # only now: what was cut off before this is done again
}

restart_all() {
    for unit in $(running); do
        is_outdated "$unit" || [ -n "$units_changed" ] || continue
        if systemctl restart "$unit"; then
            did "$unit is restarted"
            continue
        fi
        case $unit in overwinter-*) is_guard= ;; *) is_guard=1 ;; esac
        if [ -n "$is_guard" ] && [ -n "$has_before" ] && [ "$has_before" != "$(current)" ]; then
            go_back "$unit"
        fi
        failed="$failed $unit"
    done
}

running() {
    systemctl list-units --plain --no-legend --type=service --state=active,activating,reloading \
        overwinter.service 'overwinter@*.service' 'overwinter-*.service' | awk '{ print $1 }'
}

# A guard started before the link moved runs from another folder.
is_outdated() {
    pid=$(systemctl show --property=MainPID --value "$1")
    case $(tr '\0' ' ' 2>/dev/null <"/proc/$pid/cmdline") in "$(current)/"*) return 1 ;; *) return 0 ;; esac
}

# The new version does not start where the old one ran: cold pipes for a new feature are no bargain.
go_back() {
    switch_to "$has_before"
    place "$has_before"
    systemctl daemon-reload
    for unit in $(running); do systemctl restart "$unit" || :; done
    stop "$1 does not start with overwinter $version: journalctl -u $1 -n 50" \
        "The version before is back in place: overwinter status"
}

tell_next() {
    if ! problems=$(accept "$(current)/venv/bin/python" "" /etc/overwinter/site.toml 2>&1); then
        say "" "NOTHING IS GUARDED YET: /etc/overwinter/site.toml does not say what is wired." "$problems" \
            "Next:" "  sudo nano /etc/overwinter/site.toml" "  sudo systemctl start overwinter"
    elif is_live && ! systemctl --quiet is-active overwinter.service; then
        say "the guard does not run; to start it: sudo systemctl start overwinter"
    fi
    case "$is_first${SUDO_USER:-root}" in *root) ;; 1*)
        say "To change settings without sudo: sudo adduser $SUDO_USER overwinter; then log in again." ;;
    esac
}

# --- what is left over --------------------------------------------------------------------------------------------

drop_half_built() {
    for folder in "$opt"/versions/*; do
        if [ -d "$folder" ] && [ ! -e "$folder/id" ]; then rm -rf "$folder"; fi
    done
}

drop_old() {
    now=$(current)
    for folder in "$opt"/versions/*; do
        if [ "$(readlink -f "$folder")" = "$now" ]; then
            continue
        elif grep -qsa "^$home/versions/${folder##*/}/" /proc/[0-9]*/cmdline; then
            say "$folder is kept: something still runs from it"
        else
            rm -rf "$folder"
            did "  $folder is gone"
        fi
    done
}

clean_up() {
    if [ -n "$new" ]; then rm -rf "$new"; fi
}

# --- wheels -------------------------------------------------------------------------------------------------------

# All that `install` asks an index for, for machines of this kind with this Python.
wheels_into() {
    [ -n "${WHEELS:-}" ] || stop "say where to: make wheels WHEELS=DIR"
    mkdir -p "$WHEELS"
    into=$(cd "$WHEELS" && pwd)
    offline=
    pick_python
    new=$(mktemp -d)
    work=$new
    "$python" -m venv "$new/venv"
    build_wheel "$new/venv/bin/python" || stop "the package could not be built"
    builder=$new/venv/bin/python
    pip_of "$builder" wheel --wheel-dir "$into" "$(echo "$work"/overwinter-*.whl)[$EXTRAS]" --requirement "$work/backend.txt" \
        || stop "not every package could be had"
    pip_of "$builder" wheel --wheel-dir "$into" --no-deps --requirement "$work/taken-from.txt" \
        || stop "not every package could be had"
    rm -f "$into"/overwinter-*.whl
    say "$(find "$into" -name '*.whl' | wc -l) packages are in $into"
}

# --- uninstall ----------------------------------------------------------------------------------------------------

uninstall_it() {
    say "$NOT_ISOLATED"
    if [ -z "$dest" ] && has systemctl; then let_go; fi
    for version in "$opt"/versions/*; do
        for file in $(listed "$version"); do rm -f "$dest$file"; done
    done
    # From the innermost folder outwards; one that holds anything of others stays.
    if [ -e "$opt/folders" ]; then
        LC_ALL=C sort -r "$opt/folders" | while read -r folder; do rmdir "$dest$folder" 2>/dev/null || :; done
    fi
    rm -rf "$opt" "$dest"/run/overwinter "$dest"/run/overwinter@*
    if is_live; then
        systemctl daemon-reload
        systemctl reset-failed 'overwinter*' 2>/dev/null || :
    fi
    say "overwinter is uninstalled"
    if [ "${PURGE:-}" != 1 ]; then
        say "kept: /etc/overwinter, /var/lib/overwinter, /var/log/overwinter, and the user overwinter whose they are" \
            "to take those away too: sudo make uninstall PURGE=1"
        return
    fi
    for kept in /etc /var/lib /var/log; do rm -rf "$dest$kept"/overwinter "$dest$kept"/overwinter@*; done
    if [ -z "$dest" ]; then
        rm -rf /etc/systemd/system/overwinter.service.d /etc/systemd/system/overwinter.socket.d
        # Emptied first: its members outlive it, and userdel would complain of them.
        if getent group overwinter >/dev/null; then gpasswd -M "" overwinter; fi
        if getent passwd overwinter >/dev/null; then userdel overwinter; fi
        if getent group overwinter >/dev/null; then groupdel overwinter; fi
    fi
    say "settings, site.toml, logbook and the user overwinter are gone as well; the group gpio is not"
}

# Stop and disable every unit of ours, those of further houses included.
let_go() {
    enabled=$(find /etc/systemd/system -name 'overwinter*' -type l -exec basename {} \; | sort -u)
    # shellcheck disable=SC2086 # names of units, without spaces
    [ -z "$enabled" ] || systemctl --quiet disable $enabled 2>/dev/null || :
    if is_live; then
        systemctl stop 'overwinter*.service' 'overwinter*.socket' 'overwinter*.target' || :
    fi
}

[ "${1:-}" = wheels ] || [ -n "$dest" ] || [ "$(id -u)" = 0 ] || stop "this needs root: sudo make ${1:-install}"
trap clean_up EXIT
trap 'exit 129' HUP
trap 'exit 130' INT
trap 'exit 143' TERM
case ${1:-} in
install) install_it ;;
uninstall) uninstall_it ;;
wheels) wheels_into ;;
*) stop "say install, uninstall or wheels" ;;
esac
