"""One analysis a module: arrays and rates in, a frozen result with its verdict out. No files, no clock."""
