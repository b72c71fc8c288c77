"""The browser of the site's tests, for what a browser must refuse."""

import importlib.util
import sys
from pathlib import Path

_PLACE = Path(__file__).parents[1] / "site" / "conftest.py"
_SPEC = importlib.util.spec_from_file_location("site_conftest", _PLACE)
assert _SPEC is not None and _SPEC.loader is not None
_SITE = sys.modules.setdefault("site_conftest", importlib.util.module_from_spec(_SPEC))
_SPEC.loader.exec_module(_SITE)
browser, open_page = _SITE.browser, _SITE.open_page
