"""From files to meshes one can trust: reading, taking stock, cleaning."""

from clearturn.scan.model import Scan
from clearturn.scan.read import read_scan
from clearturn.scan.inventory import Pieces, Survey, piece_labels, survey

__all__ = ["Pieces", "Scan", "Survey", "piece_labels", "read_scan", "survey"]
