# Read by demo/run and tests/run, which set root: the way from a bare Python to an environment with exactly
# the packages of a lock file. Everything that is fetched or cached stays in the checkout.
# shellcheck shell=sh disable=SC2154

cd "$root"

# A setting of the caller's own Python must not lead to packages that the lock file does not name.
unset PYTHONHOME PYTHONPATH PYTHONSAFEPATH
export PYTHONPYCACHEPREFIX="$root/.cache/pycache"
export XDG_CACHE_HOME="$root/.cache"
export PIP_CACHE_DIR="$root/.cache/pip"
export PIP_DISABLE_PIP_VERSION_CHECK=1
export PIP_NO_INPUT=1
export PIP_USER=0

say() {
  printf -- '- %s\n' "$*"
}

give_up() {
  printf >&2 'Cannot go on: %s\n' "$1"
  shift
  [ $# -eq 0 ] || printf >&2 '  %s\n' "$@"
  exit 1
}

# Sets python to the first Python on PATH that is new enough and can make an environment.
find_python() {
  # Old Pythons read this too, so it keeps to what they understand.
  probe='
import sys
if sys.version_info < (3, 11):
    sys.exit(3)
try:
    import ensurepip, venv
except ImportError:
    print("%d.%d" % sys.version_info[:2])
    sys.exit(4)
# Not the executable of an environment that happens to be active: it may be the one about to be remade.
print(getattr(sys, "_base_executable", sys.executable))
'
  without_venv=
  for name in python3 python3.14 python3.13 python3.12 python3.11 python; do
    status=0
    answer=$("$name" -c "$probe" 2>/dev/null) || status=$?
    case $status in
      0)
        python=$answer
        return
        ;;
      4) without_venv=${without_venv:-$answer} ;;
    esac
  done
  if [ -n "$without_venv" ]; then
    give_up "Python $without_venv is here, but not its modules venv and ensurepip, which make an environment." \
      "On Debian and Ubuntu:  apt-get install python$without_venv-venv" \
      "Elsewhere: install the full Python of your system, then run this again."
  fi
  give_up "no Python 3.11 or newer is on PATH." \
    "Install one, with its pip and venv modules; on Debian and Ubuntu:  apt-get install python3 python3-venv"
}

# make_environment FOLDER LOCK: sets venv to FOLDER, an environment of exactly LOCK's packages.
# Whatever is not known to be whole is made again from nothing: pip takes a package that was cut off half-way
# for an installed one. The stamp is the last thing written and the first removed, so only a whole one has it.
make_environment() {
  venv=$root/$1
  find_python
  # Not the patch release: an update of the system's Python keeps the environment usable, perhaps with no signal.
  wanted=$("$python" -c '
import hashlib, pathlib, sys, sysconfig
lock = hashlib.sha256(pathlib.Path(sys.argv[2]).read_bytes()).hexdigest()
print(lock, sys.implementation.cache_tag, sysconfig.get_platform(), sys.base_prefix, sys.argv[1])
' "$venv" "$2")
  if [ "$(cat "$venv/stamp" 2>/dev/null)" = "$wanted" ] && "$venv/bin/python" -c '' 2>/dev/null; then
    say "The environment in $1 is ready."
    return
  fi
  say "Making the environment in $1 with $("$python" --version)."
  rm -f "$venv/stamp"
  rm -rf "$venv"
  "$python" -m venv "$venv" || give_up "the environment in $1 could not be made; the lines above say why."
  say "Installing the packages of $2 into it. The first time this takes a minute or so."
  # Only ready-built packages: what a build from source fetches for itself has no hash to be checked against.
  "$venv/bin/python" -m pip install --quiet --require-hashes --only-binary :all: -r "$2" ||
    give_up "the packages of $2 could not be installed; pip's lines above say why." \
      "Most often there is no network, or no Python package registry can be reached:" \
      "pip asks the one in its own settings (pip config list). Once that works, run this again."
  printf '%s\n' "$wanted" >"$venv/stamp"
}
