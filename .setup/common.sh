# Sourced by the two set-up commands: leaves $venv ready with this checkout installed.
# Debian's packages are asked for only where something is missing and this user may install them.
set -eu
cd "$(dirname "$0")/.."
venv=${BENCHFLOW_VENV:-.venv}

debian() {
    command -v apt-get >/dev/null 2>&1 || { echo "missing: $* (no apt-get here: install them your system's way)" >&2; return 0; }
    sudo=""
    if [ "$(id -u)" != 0 ]; then
        command -v sudo >/dev/null 2>&1 || { echo "missing: $* (ask somebody who may install packages)" >&2; return 0; }
        sudo=sudo
    fi
    $sudo apt-get update -qq && DEBIAN_FRONTEND=noninteractive $sudo apt-get install -y -qq "$@" >/dev/null
}

python=${PYTHON:-python3}
command -v "$python" >/dev/null 2>&1 || debian python3 python3-venv
"$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' || {
    echo "benchflow needs Python 3.11 or newer; $("$python" --version) is here. Set PYTHON=... to another." >&2
    exit 1
}
[ -x "$venv/bin/python" ] || "$python" -m venv "$venv" || { debian python3-venv && "$python" -m venv "$venv"; }

install() {
    # Quiet while it goes well; the whole of what pip said when it does not.
    "$venv/bin/python" -m pip install --disable-pip-version-check -q "$@" >"$venv/pip.log" 2>&1 || {
        cat "$venv/pip.log" >&2
        exit 1
    }
}
