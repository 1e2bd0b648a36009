-- The contributor code of a workshop of this store, if it has one. $shop. Columns: code, last_order.
select code, last_order from contributors where shop = $shop;
