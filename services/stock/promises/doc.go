// Package promises judges what many callers of stock were told at the same
// time: whether there is one order of all that was asked for, each thing
// happening at one moment between question and answer, in which every answer
// was right. A beam that is promised twice, a promise that is forgotten or a
// refusal on old news leaves no such order.
//
// It knows stock by its gRPC service alone, so it judges a service in the same
// process and a deployment in containers alike. The search for the order is
// porcupine's; the rules of the yard are written down here a second time, as
// small as they can be. It is for tests and lies in an ordinary package because
// tests of several modules use it.
package promises
