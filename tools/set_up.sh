#!/bin/sh
# Make a virtual environment and install a lock file and this package into it.
# Usage: sh tools/set_up.sh FOLDER LOCK_FILE
set -eu
folder=$1
lock=$2

find_python() {
    for name in ${PYTHON:-} python3 python3.14 python3.13 python3.12 python3.11 python; do
        if "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            echo "$name"
            return
        fi
    done
    echo "No Python of version 3.11 or later was found: install one, or name it:" \
        "make demo PYTHON=python3.12" >&2
    exit 2
}

if ! "$folder/bin/python" -c 'import sys' 2>/dev/null; then
    python=$(find_python)
    echo "Making $folder with $("$python" --version)"
    "$python" -m venv --clear "$folder" || {
        echo "$python cannot make a virtual environment: install its venv module" \
            "(Debian and Ubuntu: the package python3-venv)" >&2
        exit 2
    }
fi
python=$folder/bin/python

# uv installs in seconds what takes pip a minute; the project works without it.
if "$python" -m uv --version >/dev/null 2>&1 ||
    "$python" -m pip install --quiet --disable-pip-version-check uv; then
    echo "Installing $lock with uv"
    if "$python" -m uv pip install --quiet --python "$python" --require-hashes -r "$lock" &&
        "$python" -m uv pip install --quiet --python "$python" --no-deps --editable .; then
        exit 0
    fi
    echo "uv could not install $lock: trying plain pip"
else
    echo "uv could not be had: installing $lock with plain pip, which takes about a minute longer"
fi
"$python" -m pip install --quiet --disable-pip-version-check --require-hashes -r "$lock"
"$python" -m pip install --quiet --disable-pip-version-check --no-deps --editable .
