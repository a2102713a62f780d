"""The version of this package, and how it introduces itself."""

import platform

__version__ = "0.1.0"
USER_AGENT = f"loopmargin/{__version__} python/{platform.python_version()}"
