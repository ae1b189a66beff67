"""What the screens say of pieces, scans, orders and new scans."""
