# The fits: where the data stand in R, the lmer formula, and the same model in this project's words.
from <- function(package, name, prepare = identity) function() {
  e <- new.env(); data(list = name, package = package, envir = e)
  d <- as.data.frame(e[[name]])
  for (v in names(d)) if (is.ordered(d[[v]])) d[[v]] <- factor(d[[v]], levels = levels(d[[v]]), ordered = FALSE)
  prepare(d)
}
csv <- function(file, prepare = identity) function() prepare(read.csv(file.path(Sys.getenv("STATSMODELS_RESULTS"), file)))
fit <- function(source, data, formula, mean, ..., note = NULL)
  list(source = source, data = data, formula = formula, mean = mean, varies = list(...), note = note)
paste2 <- function(a, b) factor(paste(a, b, sep = "_"))
dietox <- csv("dietox.csv", function(d) transform(d, Pig = factor(Pig), Litter = factor(Litter), Cu = factor(Cu), Evit = factor(Evit)))
pastes <- csv("pastes.csv")
school <- function() {
  d <- from("nlme", "MathAchieve")()
  d$mses <- ave(d$SES, d$School); d$cses <- d$SES - d$mses; d
}

FITS <- list(
  sleepstudy_slope = fit("lme4::sleepstudy", from("lme4", "sleepstudy"), Reaction ~ Days + (Days | Subject), "1 + Days", c("Subject", "1 + Days")),
  sleepstudy_intercept = fit("lme4::sleepstudy", from("lme4", "sleepstudy"), Reaction ~ Days + (1 | Subject), "1 + Days", c("Subject", "1")),
  orthodont_slope = fit("nlme::Orthodont", from("nlme", "Orthodont"), distance ~ age + (age | Subject), "1 + age", c("Subject", "1 + age")),
  orthodont_sex = fit("nlme::Orthodont", from("nlme", "Orthodont", function(d) transform(d, age11 = age - 11)),
    distance ~ Sex * age11 + (age11 | Subject), "1 + Sex * age11", c("Subject", "1 + age11"), note = "age11 = age - 11"),
  oxboys = fit("nlme::Oxboys", from("nlme", "Oxboys"), height ~ age + (age | Subject), "1 + age", c("Subject", "1 + age")),
  oxboys_square = fit("nlme::Oxboys", from("nlme", "Oxboys", function(d) transform(d, age2 = age^2)), height ~ age + age2 + (age | Subject), "1 + age + age2", c("Subject", "1 + age"), note = "age2 = age^2"),
  oxboys_three = fit("nlme::Oxboys", from("nlme", "Oxboys", function(d) transform(d, age2 = age^2)), height ~ age + age2 + (age + age2 | Subject), "1 + age + age2", c("Subject", "1 + age + age2"), note = "age2 = age^2; three random terms"),
  bodyweight = fit("nlme::BodyWeight", from("nlme", "BodyWeight"), weight ~ Time * Diet + (Time | Rat), "1 + Time * Diet", c("Rat", "1 + Time")),
  sitka = fit("MASS::Sitka", from("MASS", "Sitka", function(d) transform(d, tree = factor(tree))), size ~ Time * treat + (Time | tree), "1 + Time * treat", c("tree", "1 + Time")),
  math_achieve = fit("nlme::MathAchieve", school, MathAch ~ mses + cses + (cses | School), "1 + mses + cses", c("School", "1 + cses"),
    note = "mses = mean of SES by School; cses = SES - mses"),
  math_intercept = fit("nlme::MathAchieve", school, MathAch ~ mses * cses + Sex + Minority + (1 | School), "1 + mses * cses + Sex + Minority", c("School", "1"),
    note = "mses = mean of SES by School; cses = SES - mses"),
  milk = fit("nlme::Milk", from("nlme", "Milk"), protein ~ Time * Diet + (Time | Cow), "1 + Time * Diet", c("Cow", "1 + Time")),
  rat_pups = fit("nlme::RatPupWeight", from("nlme", "RatPupWeight"), weight ~ sex + Lsize + Treatment + (1 | Litter), "1 + sex + Lsize + Treatment", c("Litter", "1")),
  rail = fit("nlme::Rail", from("nlme", "Rail"), travel ~ 1 + (1 | Rail), "1", c("Rail", "1")),
  ergo_stool = fit("nlme::ergoStool", from("nlme", "ergoStool"), effort ~ Type + (1 | Subject), "1 + Type", c("Subject", "1")),
  igf = fit("nlme::IGF", from("nlme", "IGF"), conc ~ age + (age | Lot), "1 + age", c("Lot", "1 + age")),
  spruce_tree = fit("nlme::Spruce", from("nlme", "Spruce"), logSize ~ days + (days | Tree), "1 + days", c("Tree", "1 + days")),
  spruce = fit("nlme::Spruce", from("nlme", "Spruce"), logSize ~ days + (days | Tree) + (1 | plot), "1 + days", c("Tree", "1 + days"), c("plot", "1")),
  petrol = fit("MASS::petrol", from("MASS", "petrol"), Y ~ SG + VP + V10 + EP + (1 | No), "1 + SG + VP + V10 + EP", c("No", "1")),
  nlschools = fit("MASS::nlschools", from("MASS", "nlschools"), lang ~ IQ * COMB + SES + (IQ | class), "1 + IQ * COMB + SES", c("class", "1 + IQ")),
  dyestuff = fit("lme4::Dyestuff", from("lme4", "Dyestuff"), Yield ~ 1 + (1 | Batch), "1", c("Batch", "1")),
  dyestuff2 = fit("lme4::Dyestuff2", from("lme4", "Dyestuff2"), Yield ~ 1 + (1 | Batch), "1", c("Batch", "1")),
  sleepstudy_diagonal = fit("lme4::sleepstudy", from("lme4", "sleepstudy"), Reaction ~ Days + (Days || Subject), "1 + Days", c("Subject", "1 + Days", "diagonal")),
  dietox_slope = fit("statsmodels dietox.csv", dietox, Weight ~ Time + (Time | Pig), "1 + Time", c("Pig", "1 + Time")),
  dietox3 = fit("statsmodels dietox.csv", dietox, Weight ~ Time * Cu + (1 | Litter) + (Time | Pig), "1 + Time * Cu", c("Pig", "1 + Time"), c("Litter", "1")),
  dietox3_slopes = fit("statsmodels dietox.csv", dietox, Weight ~ Time * Evit + (Time | Litter) + (Time | Pig), "1 + Time * Evit", c("Pig", "1 + Time"), c("Litter", "1 + Time")),
  pastes3 = fit("statsmodels pastes.csv", pastes, strength ~ 1 + (1 | batch) + (1 | sample), "1", c("sample", "1"), c("batch", "1")),
  machines = fit("nlme::Machines", from("nlme", "Machines", function(d) transform(d, cell = paste2(Worker, Machine))),
    score ~ Machine + (1 | Worker) + (1 | cell), "1 + Machine", c("cell", "1"), c("Worker", "1"), note = "cell = Worker and Machine"),
  oats = fit("nlme::Oats", from("nlme", "Oats", function(d) transform(d, plot = paste2(Block, Variety), dose = factor(nitro))),
    yield ~ Variety * dose + (1 | Block) + (1 | plot), "1 + Variety * dose", c("plot", "1"), c("Block", "1"), note = "plot = Block and Variety; dose = factor(nitro)"),
  alfalfa = fit("nlme::Alfalfa", from("nlme", "Alfalfa", function(d) transform(d, plot = paste2(Block, Variety))),
    Yield ~ Variety * Date + (1 | Block) + (1 | plot), "1 + Variety * Date", c("plot", "1"), c("Block", "1"), note = "plot = Block and Variety"),
  oxide = fit("nlme::Oxide", from("nlme", "Oxide", function(d) transform(d, wafer = paste2(Lot, Wafer))),
    Thickness ~ Source + (1 | Lot) + (1 | wafer), "1 + Source", c("wafer", "1"), c("Lot", "1"), note = "wafer = Lot and Wafer"),
  oxide_plain = fit("nlme::Oxide", from("nlme", "Oxide", function(d) transform(d, wafer = paste2(Lot, Wafer))),
    Thickness ~ 1 + (1 | Lot) + (1 | wafer), "1", c("wafer", "1"), c("Lot", "1"), note = "wafer = Lot and Wafer"),
  pixel = fit("nlme::Pixel", from("nlme", "Pixel", function(d) transform(d, side = paste2(Dog, Side), day2 = day^2)),
    pixel ~ day + day2 + (day | Dog) + (1 | side), "1 + day + day2", c("side", "1"), c("Dog", "1 + day"), note = "side = Dog and Side; day2 = day^2"),
  wafer = fit("nlme::Wafer", from("nlme", "Wafer", function(d) transform(d, place = paste2(Wafer, Site), voltage2 = voltage^2)),
    current ~ voltage + voltage2 + (voltage | Wafer) + (voltage | place), "1 + voltage + voltage2", c("place", "1 + voltage"), c("Wafer", "1 + voltage"), note = "place = Wafer and Site; voltage2 = voltage^2"),
  carrots = fit("lmerTest::carrots", from("lmerTest", "carrots", function(d) subset(d, !is.na(Preference))), Preference ~ sens2 + Homesize + (sens2 | Consumer), "1 + sens2 + Homesize", c("Consumer", "1 + sens2")),
  carrots_three = fit("lmerTest::carrots", from("lmerTest", "carrots", function(d) subset(d, !is.na(Preference))), Preference ~ sens1 + sens2 * Age + (sens1 + sens2 | Consumer), "1 + sens1 + sens2 * Age", c("Consumer", "1 + sens1 + sens2")),
  beets = fit("pbkrtest::beets", from("pbkrtest", "beets", function(d) transform(d, plot = paste2(block, harvest))),
    sugpct ~ sow + harvest + (1 | block) + (1 | plot), "1 + sow + harvest", c("plot", "1"), c("block", "1"), note = "plot = block and harvest"),
  sleepstudy_slope_only = fit("lme4::sleepstudy", from("lme4", "sleepstudy"), Reaction ~ Days + (0 + Days | Subject), "1 + Days", c("Subject", "0 + Days")),
  machines_full = fit("nlme::Machines", from("nlme", "Machines"), score ~ Machine + (0 + Machine | Worker), "1 + Machine", c("Worker", "0 + Machine")),
  ham = fit("lmerTest::ham", from("lmerTest", "ham", function(d) transform(d, liking = Informed.liking)), liking ~ Product * Information + Gender + Age + (1 | Consumer),
    "1 + Product * Information + Gender + Age", c("Consumer", "1"), note = "liking = Informed.liking"),
  dietox_curve = fit("statsmodels dietox.csv", function() transform(dietox(), t = Time - 6.5, t2 = (Time - 6.5)^2, t3 = (Time - 6.5)^3), Weight ~ t + t2 + t3 + Evit + (t + t2 | Pig),
    "1 + t + t2 + t3 + Evit", c("Pig", "1 + t + t2"), note = "t = Time - 6.5; t2 = t^2; t3 = t^3"),
  dietox3_diagonal = fit("statsmodels dietox.csv", dietox, Weight ~ Time * Cu + (1 | Litter) + (Time || Pig), "1 + Time * Cu", c("Pig", "1 + Time", "diagonal"), c("Litter", "1")),
  rats_diet = fit("nlme::BodyWeight", from("nlme", "BodyWeight", function(d) transform(d, days = as.numeric(Time))), weight ~ Diet + days + (1 | Rat), "1 + Diet + days", c("Rat", "1"), note = "days = Time"),
  anorexia_long = fit("MASS::anorexia", from("MASS", "anorexia", function(d) {
      d$client <- factor(seq_len(nrow(d)))
      long <- rbind(data.frame(client = d$client, arm = d$Treat, after = 0, weight = d$Prewt), data.frame(client = d$client, arm = d$Treat, after = 1, weight = d$Postwt))
      transform(long, arm = relevel(arm, "Cont")) }),
    weight ~ after * arm + (1 | client), "1 + after * arm", c("client", "1"), note = "long: one row a client before (after = 0) and after (1); reference arm Cont")
)
