# Sourced by the two set-up commands. Makes the virtual environment $venv and defines `install`.
# A Debian package is installed only if a program is missing and the user is allowed to install it.
set -eu
cd "$(dirname "$0")/.."
venv=${BENCHFLOW_VENV:-.venv}

debian() {
    command -v apt-get >/dev/null 2>&1 || { echo "Missing packages: $*. There is no apt-get. Install them with the package manager of your system." >&2; return 0; }
    sudo=""
    if [ "$(id -u)" != 0 ]; then
        command -v sudo >/dev/null 2>&1 || { echo "Missing packages: $*. There is no sudo. Ask an administrator to install them." >&2; return 0; }
        sudo=sudo
    fi
    $sudo apt-get update -qq && DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq "$@" >/dev/null
}

python=${PYTHON:-python3}
command -v "$python" >/dev/null 2>&1 || debian python3 python3-venv
"$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' || {
    echo "benchflow needs Python 3.11 or newer. Found: $("$python" --version). Set PYTHON to a newer Python." >&2
    exit 1
}
[ -x "$venv/bin/python" ] || "$python" -m venv "$venv" || { debian python3-venv && "$python" -m venv "$venv"; }

install() {
    # --no-compile: Python compiles a module at its first import. Modules that are never used are not compiled.
    "$venv/bin/python" -m pip install --disable-pip-version-check --no-compile -q "$@" >"$venv/pip.log" 2>&1 || {
        cat "$venv/pip.log" >&2
        exit 1
    }
}
