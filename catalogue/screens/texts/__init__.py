"""The texts of the screens about pieces, scans, orders and new scans."""
