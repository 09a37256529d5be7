"""Makes the rig importable and marks every test here as a verification."""

import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))
