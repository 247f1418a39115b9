"""Pure decisions about packs, orders and money: no database, no clock."""
