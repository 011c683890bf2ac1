# Read by demo/run, tests/run and tests/lock, which set root: the way from a bare Python to an environment with
# exactly the packages of a lock file. Everything that is fetched or cached stays in the checkout.
# shellcheck shell=sh disable=SC2154

cd "$root" || exit

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

python=

# Sets python to the first Python on PATH that is new enough and can make an environment.
find_python() {
  [ -z "$python" ] || return 0
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

# new_environment FOLDER: an empty environment there, in place of whatever was.
new_environment() {
  find_python
  say "Making the environment in ${1#"$root"/} with $("$python" --version)."
  # The stamp first: a removal that is cut off must not leave it behind.
  rm -f "$1/stamp"
  rm -rf "$1"
  "$python" -m venv "$1" || give_up "the environment could not be made; the lines above say why."
}

# make_environment FOLDER LOCK: an environment there with exactly LOCK's packages.
# Whatever is not known to be whole is made again from nothing: pip takes a package that was cut off half-way
# for an installed one. Only a whole environment has a stamp, which says what it was made from.
make_environment() {
  find_python
  # Not the patch release: an update of the system's Python must not ask for a network where there is none.
  wanted=$("$python" -c '
import hashlib, pathlib, sys, sysconfig
lock = hashlib.sha256(pathlib.Path(sys.argv[2]).read_bytes()).hexdigest()
print(lock, sys.implementation.cache_tag, sysconfig.get_platform(), sys.base_prefix, sys.argv[1])
' "$1" "$2")
  if [ "$(cat "$1/stamp" 2>/dev/null)" = "$wanted" ] && "$1/bin/python" -c '' 2>/dev/null; then
    say "The environment in ${1#"$root"/} is ready."
    return
  fi
  new_environment "$1"
  say "Installing the packages of $2 into it. The first time this takes a minute or so."
  # Only ready-built packages: what a build from source fetches for itself has no hash to be checked against.
  "$1/bin/python" -m pip install --quiet --require-hashes --only-binary :all: -r "$2" ||
    give_up "the packages of $2 could not be installed; pip's lines above say why." \
      "Most often there is no network, or no Python package registry can be reached:" \
      "pip asks the one in its own settings (pip config list). Once that works, run this again."
  printf '%s\n' "$wanted" >"$1/stamp"
}
