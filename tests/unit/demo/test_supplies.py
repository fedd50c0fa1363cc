"""What the demo says of prices and consumables belongs to what it has."""

from drumkeep.demo import company, supplies


def test_prices_are_of_products_and_lots_of_the_company():
    products = {product["code"] for product in company.PRODUCTS}
    lots = {(product, code) for product, code, _ in company.LOTS}

    for price in supplies.PRICES:
        assert price["product"] in products
        assert price["lot"] is None or (price["product"], price["lot"]) in lots
    # one product has none, so that what has no price is seen to be told
    assert {price["product"] for price in supplies.PRICES} < products


def test_consumables_stand_in_places_of_the_company_and_one_is_low():
    places = {f"{place['site']}/{place['code']}" for place in company.PLACES}

    assert {kept["place"] for kept, _ in supplies.CONSUMABLES} <= places
    assert [kept["name"] for kept, n in supplies.CONSUMABLES if n < kept["minimum"]]
