"""The shop's board versions, one module a board. A version never changes once it is in use."""

from shared_models.board import BoardVersion

from demo.shop.boards.quillon_t10 import T10

ALL_BOARDS: tuple[BoardVersion, ...] = (T10,)
"""Every board of the shop, in the order the app lists them."""
