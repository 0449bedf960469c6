# Sourced by the two set-up commands: makes the virtual environment $venv and defines `install`.
# Debian packages are installed only where a program is missing and the user may install them.
set -eu
cd "$(dirname "$0")/.."
venv=${BENCHFLOW_VENV:-.venv}

debian() {
    command -v apt-get >/dev/null 2>&1 || { echo "missing: $* (there is no apt-get here: install them with your system's package manager)" >&2; return 0; }
    sudo=""
    if [ "$(id -u)" != 0 ]; then
        command -v sudo >/dev/null 2>&1 || { echo "missing: $* (there is no sudo here: ask an administrator to install them)" >&2; return 0; }
        sudo=sudo
    fi
    $sudo apt-get update -qq && DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq "$@" >/dev/null
}

python=${PYTHON:-python3}
command -v "$python" >/dev/null 2>&1 || debian python3 python3-venv
"$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' || {
    echo "benchflow needs Python 3.11 or newer; this is $("$python" --version). Set PYTHON to a newer one." >&2
    exit 1
}
[ -x "$venv/bin/python" ] || "$python" -m venv "$venv" || { debian python3-venv && "$python" -m venv "$venv"; }

install() {
    # --no-compile: Python compiles a module when it is first imported, so the many that are never used cost nothing.
    "$venv/bin/python" -m pip install --disable-pip-version-check --no-compile -q "$@" >"$venv/pip.log" 2>&1 || {
        cat "$venv/pip.log" >&2
        exit 1
    }
}
