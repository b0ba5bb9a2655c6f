# Prints name and value of what fornix/inspect/study says of the same data, by base R alone.
args <- commandArgs(trailingOnly = TRUE)
d <- read.table(args[1], header = TRUE, stringsAsFactors = FALSE)
say <- function(name, x) cat(name, formatC(x, digits = 17, format = "g"), "\n")

m <- matrix(d$value, nrow = length(unique(d$subject)), byrow = TRUE)
n <- nrow(m); k <- ncol(m)
v <- m[, 1]
t <- t.test(v)
say("mean", mean(v)); say("sd", sd(v)); say("median", median(v))
say("q1", quantile(v, 0.25, type = 7)); say("q3", quantile(v, 0.75, type = 7))
say("mean.low", t$conf.int[1]); say("mean.high", t$conf.int[2])
say("sd.low", sd(v) * sqrt((n - 1) / qchisq(0.975, n - 1))); say("sd.high", sd(v) * sqrt((n - 1) / qchisq(0.025, n - 1)))

d$subject <- factor(d$subject); d$judge <- factor(d$judge)
two <- anova(lm(value ~ subject + judge, data = d))
one <- anova(lm(value ~ subject, data = d))
say("bms", two["subject", "Mean Sq"]); say("jms", two["judge", "Mean Sq"]); say("ems", two["Residuals", "Mean Sq"])
say("wms", one["Residuals", "Mean Sq"])
say("f1", one["subject", "F value"]); say("p1", one["subject", "Pr(>F)"])
say("f3", two["subject", "F value"]); say("p3", two["subject", "Pr(>F)"])

a <- m[, 1]; b <- m[, 2]; x <- a - b
s <- sd(x); z <- qnorm(0.975) * sqrt(n)
say("bias", mean(x)); say("lower", mean(x) - qnorm(0.975) * s)
say("upper.low", mean(x) + s * qt(0.025, n - 1, ncp = z) / sqrt(n)); say("upper.high", mean(x) + s * qt(0.975, n - 1, ncp = z) / sqrt(n))
fit <- summary(lm(x ~ I((a + b) / 2)))$coefficients
say("slope", fit[2, 1]); say("slope.p", fit[2, 4])

# One subject, its judges as laboratories with unequal numbers of results.
lab <- read.table(args[2], header = TRUE, stringsAsFactors = FALSE)
lab$lab <- factor(lab$lab)
tab <- anova(lm(value ~ lab, data = lab))
size <- (nrow(lab) - sum(table(lab$lab)^2) / nrow(lab)) / (nlevels(lab$lab) - 1)
say("sr2", tab["Residuals", "Mean Sq"]); say("sl2", (tab["lab", "Mean Sq"] - tab["Residuals", "Mean Sq"]) / size)
