"""The shop's board versions, one module a board. A version never changes once it is in use."""

from demo.shop.boards.brennock_l14 import L14
from demo.shop.boards.marlbeck_s4 import S4
from demo.shop.boards.quillon_t10 import T10
from demo.shop.boards.skarrow_v2 import V2
from demo.shop.boards.tolvane_p1 import P1
from shared_models.board import BoardVersion

__all__ = ["ALL_BOARDS", "L14", "P1", "S4", "T10", "V2"]

ALL_BOARDS: tuple[BoardVersion, ...] = (T10, L14, V2, S4, P1)
"""Every board of the shop, in the order the app lists them."""
