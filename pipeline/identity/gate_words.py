"""Words by which a column of names, places or addresses is known: common given names, family names and towns.

Lists of common words in a few languages of clinics, written by us; a column needs only some of its values among them.
"""

from __future__ import annotations

import unicodedata


def _listed(words: str) -> frozenset[str]:
    return frozenset(words.split())


GIVEN = _listed("""
 aaron abdul abigail adam adrian agnes ahmed ahmet aisha alan albert alessandro alex alexander alexandra alfred ali
alice alicia alison amanda amelia amy ana anders andre andrea andreas andrew andrzej angela anita ann anna anne
annette anthony antoine antonio arthur ashley astrid barbara beatrice ben benjamin bernard bernd betty bjorn bogdan
brandon brenda brian bruno camille carl carla carlos carmen carol caroline catherine cecilia charles charlotte chiara
chloe chris christian christina christine christopher claire clara claudia clemens colin craig cristina cynthia daniel
daniela david dawn deborah denise dennis diana diane diego dieter dmitri dominik donald donna dorothy douglas edith
eduardo edward elaine elena elias elisabeth elizabeth ella ellen emil emily emma eric erik erika ernst esther ethan
eugene eva evelyn fatima felix fernando filip florian frances francesca francesco francisco francois frank franz
frederic friedrich gabriel gabriele gary georg george gerald gerhard giovanni giulia giuseppe gloria grace graham
greta grzegorz guillaume gustav hannah hans harald harold harry hassan heather heidi heinz helen helena helga henri
henry hilda horst hugo ian ibrahim ingrid irene iris isabel isabella ivan jack jacob jacqueline jakob james jamie jan
jane janet janina jason javier jean jeffrey jennifer jeremy jerzy jessica joan joanna johan johanna johannes john
jonas jonathan jorge jose josef joseph joshua joyce juan judith julia julian julie jurgen justin karen karin karl
karolina katarzyna kate katharina katherine kathleen keith kelly kenneth kerry kevin khalid kim klaus krzysztof kumar
kurt larry lars laura lauren laurent lea leila leo leon leonie lena leslie lina linda lisa lorenzo louis louise luca
lucas lucia lucy luigi luis luisa lukas maciej magdalena malgorzata manfred manuel marc marcel marco marcus margaret
margarita maria mariam marie marion mark marko marta martha martin martina mary mateusz mathilde matteo matthew
matthias maurice max maximilian megan mehmet melissa mia michael michaela michal michele michelle miguel mikael
mohamed mohammed monica monika nadia nancy natalia natalie nathalie nathan nicholas nicola nicole niels nikolai nina
noah nora norman olaf oleg oliver olivia omar oscar otto pablo pamela paola paolo patricia patrick paul paula pauline
pedro peter petra philip philippe phillip pierre piotr priya rachel rafael ralf ralph ramon raymond rebecca regina
renate renee ricardo richard rita robert roberto roger roland ronald rosa rose roy russell ruth ryan sabine salma
samantha samuel sandra sara sarah scott sean sebastian serge sergio sharon sheila simon simone sofia sonia sophia
sophie stanislaw stefan stefanie stefano stephanie stephen steven stuart susan susanne svetlana sven sylvia tamara
tanya tatiana teresa theodor theresa thomas tim timothy tobias tom tomas tomasz tony tracy ulrich ulrike ursula uwe
valentina valerie vera veronica victor victoria viktor vincent virginia vladimir walter wanda werner wilhelm
william wojciech wolfgang xavier yolanda yusuf yvonne zoe zofia
""")

FAMILY = _listed("""
 ahmed aydin albrecht alexander allen almeida alvarez andersen anderson andersson bailey baker barbieri barnes bauer
baumann becker bell bennett berg berger bernard bianchi blanc boateng bonnet braun brooks brown bruno bush butler
campbell carlsson carter castillo castro celik chan chapman chavez chen clark clarke cohen collins colombo cooper
costa cox cruz davies davis delgado demir diaz dijkstra dubois dupont durand edwards ellis eriksson esposito evans
fernandes fernandez ferrari ferreira fischer fisher flores fontana ford foster fournier frank franke fuchs garcia
garnier gibson gomes gomez gonzales gonzalez graham gray green griffin gruber gutierrez haas hahn hall hamilton hansen
hansson harris harrison hartmann hayes henry hermann hernandez herrera hoffmann hofmann howard huber hughes hunt
hussain ivanov ivanova jackson jakobsen james jansen janssen jenkins jensen jimenez johansen johansson johnson jones
jordan kaiser kaya keller kelly kennedy khan kim king klein koch kohler konig kovac kowalski kowalczyk kraus kruger
kuhn kumar lambert lang lange larsen larsson laurent lee lefebvre lehmann leroy lewandowski lewis lin liu lombardi
long lopes lopez lorenz ludwig maier marino marsh marshall martin martinez martins mason mayer mcdonald medina mendoza
mercier meyer miller mitchell moore morales moreau morel moreno moretti morgan morris muller murphy murray myers nagy
nelson neumann nguyen nielsen nilsson novak nowak nunez obrien oliveira olsen olsson ortega ortiz owens palmer parker
patel pedersen pereira perez perry peters petersen petit petrov pham phillips pinto popescu popov powell price ramirez
ramos reed reyes reynolds ricci richard richter riley rivera roberts robertson robinson rodrigues rodriguez rogers
romano romero ross rossi rousseau roux ruiz russell russo ryan sanchez sanders santos sato schafer schmid schmidt
schmitt schmitz schneider scholz schroder schubert schulz schulze schumacher schwarz scott shah sharma shaw silva
simon simpson singh smirnov smith soto sousa stein stewart stevens sullivan suzuki svensson tanaka taylor thomas
thompson torres tran tucker turner vargas vasquez visser vogel wagner walker wallace wang ward watson weber weiss
wells werner west white williams wilson winkler winter wolf wolff wong wood wright wu yamamoto yang yildiz yilmaz
young zhang ziegler zimmermann
""")

TOWNS = _listed("""
 aachen aarhus aberdeen adelaide albany albuquerque alicante amiens amsterdam antwerp antwerpen athens atlanta
auckland augsburg austin baltimore barcelona bari basel bath belfast bergamo bergen berlin bern bielefeld bilbao
birmingham bochum bologna bonn bordeaux boston bradford braga bremen brescia brest brighton brisbane bristol brno
brugge brussels bucharest budapest buffalo calgary cambridge canberra cardiff catania charlotte chemnitz chester
chicago cleveland coimbra cologne copenhagen cordoba cork coventry cracow dallas darwin delft denver derby detroit
dijon dortmund dresden dublin duisburg dundee durham edinburgh edmonton eindhoven erfurt essen exeter faro firenze
florence frankfurt freiburg gdansk geneva genoa genova gent glasgow gloucester goteborg graz grenoble groningen
haarlem halifax halle hamburg hamilton hannover helsinki hobart houston hull innsbruck ipswich kansas karlsruhe kassel
katowice kiel koln krakow lausanne leeds leicester leiden leipzig lille limerick limoges lincoln linz lisboa lisbon
liverpool ljubljana lodz london lublin lubeck luzern lyon madrid mainz malaga malmo manchester mannheim marburg
marseille melbourne memphis metz miami milan milano milwaukee minneapolis modena montpellier montreal munich munster
murcia nancy nantes napoli naples nashville newcastle newport nice nijmegen norwich nottingham nurnberg odense omaha
oporto orlando oslo ottawa oviedo oxford padova palermo paris parma perth perugia philadelphia phoenix pittsburgh
plymouth portland porto portsmouth potsdam poznan prague praha preston quebec reims rennes richmond roma rome rostock
rotterdam rouen sacramento salford salzburg seattle seville sevilla sheffield southampton stirling stockholm
strasbourg stuttgart sunderland swansea sydney szczecin tampere tampa toledo torino toronto toulouse tours trento
trieste trondheim truro tucson turin turku uppsala utrecht valencia valladolid vancouver venezia verona vienna
wakefield warsaw warszawa wellington wien winchester winnipeg worcester wroclaw wuppertal york zagreb zaragoza zurich
""")

#: Words that many labels of clinics are made of, and no person or town is called by.
PLAIN = _listed("""
jan feb mar apr jun jul aug sep sept oct nov dec mon tue wed thu fri sat sun
 january february march april may june july august september october november december monday tuesday wednesday
thursday friday saturday sunday left right both seated standing supine none other unknown yes no male female mild
moderate severe
""")


def folded(word: str) -> str:
    """Return a word in small letters without accents, as the lists hold it."""
    plain = unicodedata.normalize("NFKD", word.replace("ß", "ss").replace("ø", "o").replace("ł", "l").replace("Ł", "l"))
    return "".join(c for c in plain if not unicodedata.combining(c)).casefold()


def is_person(word: str) -> bool:
    """Say whether a word is a common given or family name."""
    return (name := folded(word)) in GIVEN or name in FAMILY


def is_town(word: str) -> bool:
    """Say whether a word is the name of a larger town."""
    return folded(word) in TOWNS
