-- All bundles and packs ever stored, newest first within a contributor. shop: this store's workshop behind it, or "".
select bundles.*, coalesce(contributors.shop, '') as shop
from bundles
left join contributors on contributors.code = bundles.contributor
order by bundles.kind, bundles.contributor, bundles.number desc;
