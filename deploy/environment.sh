# Shared by deploy/demo and deploy/test: find a Python, and keep a virtual environment up to date with the checkout.
# shellcheck shell=bash

# find_python: print a Python that is new enough and can make environments, or say what to install and fail.
find_python() {
  local candidate
  for candidate in python3 python3.14 python3.13 python3.12 python3.11; do
    if "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
      if "$candidate" -c 'import ensurepip, venv' 2>/dev/null; then
        command -v "$candidate"
        return
      fi
      echo "$candidate cannot make virtual environments. On Debian and its relatives: sudo apt-get install python3-venv" >&2
      return 1
    fi
  done
  echo "lamproom needs Python 3.11 or later, and none was found." >&2
  echo "On Debian and its relatives: sudo apt-get install python3 python3-venv" >&2
  return 1
}

# prepare_environment DIRECTORY EXTRA: make the environment, unless it is up to date.
#
# The installation is editable: what runs is what stands in the checkout, so that a changed source needs no second
# installation and no stamp over sources can be wrong. Only pyproject.toml (what is installed, which commands there
# are), the Python and the place of the checkout (both are written into the environment) make it out of date. The
# stamp is written last: an installation that was broken off is made anew.
prepare_environment() {
  local directory=$1 extra=$2 python wanted
  python=$(find_python)
  wanted="$(cksum <pyproject.toml) $extra $PWD $("$python" -c 'import sys; print(sys.base_prefix, sys.version)')"
  if [[ -f $directory/stamp && $(<"$directory/stamp") == "$wanted" ]]; then
    echo "$directory is up to date."
    return
  fi
  echo "Making $directory with $("$python" --version); the first time this takes about a minute ..."
  "$python" -m venv --clear "$directory"
  echo '*' >"$directory/.gitignore" # Python 3.13 and later write it themselves
  "$directory/bin/python" -m pip install -qq --disable-pip-version-check --no-input --editable ".[$extra]"
  printf '%s\n' "$wanted" >"$directory/stamp"
}
